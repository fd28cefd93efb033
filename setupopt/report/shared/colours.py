"""The colours of all pictures; what must be told apart in print differs in its line or its point as well."""

INK = "#1d2b3a"
SECOND = "#0f7c6c"
WARNING = "#b4431f"
QUIET = "#8a8f96"
