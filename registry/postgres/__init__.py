"""Django's PostgreSQL engine, which can also start a server of its own."""
