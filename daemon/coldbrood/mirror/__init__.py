"""An optional copy of the readings on a server of the InfluxDB v2 write protocol: store and forward."""
