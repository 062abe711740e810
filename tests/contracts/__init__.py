"""What every store must do, run on SQLite and on PostgreSQL."""
