"""Parts from the shelf: branch and bound over sets of parts and bodies."""
