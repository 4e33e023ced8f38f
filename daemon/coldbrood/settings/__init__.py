"""The one config file: its schema, its loading, its meaning."""
