"""MQTT, with an outbox that survives outages and restarts. The topics are described in TOPICS.md."""
