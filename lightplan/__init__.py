"""Plan, predict and judge the light for photographs of flat metallic goods."""

__version__ = "0.1.0"
