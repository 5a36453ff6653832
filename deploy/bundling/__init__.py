"""The agent's bundles, each by a module of its own."""
