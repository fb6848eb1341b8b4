"""The commands of the terminal: options, a call of a service, and printing."""
