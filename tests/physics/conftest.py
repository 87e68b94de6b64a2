"""Properties of physics are tried on machines of any speed: no example is refused for taking its time."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
