"""The web page: the same functions as the command line, for a browser on this machine."""
