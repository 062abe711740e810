"""Evidence that is handed over and checked away from the service."""
