"""The use cases, one function each; the command line only translates words to them."""
