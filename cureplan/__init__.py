"""Working-time and recoat scheduler, driven by temperature, for fast-setting kitchen floors."""
