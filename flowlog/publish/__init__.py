"""MQTT, with an outbox that survives outages and restarts. `TOPICS.md` describes the topics."""
