"""What must be told: events in, alarms and messages out. Pure."""
