"""The service over HTTP."""
