"""The maker's work while it is open: the document, its history, long work in a child."""
