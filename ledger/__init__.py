"""The maker's book: the product itself, which knows nothing of HTTP."""
