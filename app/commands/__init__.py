"""The commands of the terminal, a module each."""
