"""How people meet it: the command line and the web page."""
