"""Drawn examples may take as long as a busy machine needs."""

from hypothesis import settings

settings.register_profile("busy machine", deadline=None)
settings.load_profile("busy machine")
