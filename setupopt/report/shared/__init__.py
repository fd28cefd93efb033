"""Tables, words and pictures that several commands share."""
