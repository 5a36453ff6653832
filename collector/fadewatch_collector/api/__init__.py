"""The JSON interface: agents report here, programs ask here."""
