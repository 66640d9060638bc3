"""Accessory-drive acoustic fault screener: from a clip and a layout to ranked sources."""

__version__ = "0.1.0"
