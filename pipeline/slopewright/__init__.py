"""slopewright measures roofs: planes, pitch, edges and quantities, with confidence bounds."""

__version__ = "0.1.0"
