"""One file a command. Commands may import everything; nothing imports a command."""
