"""Background work under leases."""
