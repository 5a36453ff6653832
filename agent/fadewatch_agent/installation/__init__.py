"""Set the agent up under the operating system's own timer, and take it away again."""
