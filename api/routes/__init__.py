"""The routes, one file a concern; each handler stands beside what it says about itself."""
