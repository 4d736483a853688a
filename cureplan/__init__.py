"""Working-time and recoat scheduler, driven by temperature, for fast-setting kitchen floors."""

__version__ = "0.1.0"
