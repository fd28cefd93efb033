"""The commands, one module each. Only here is anything printed, and only here does the program exit."""
