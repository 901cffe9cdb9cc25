"""From photos to a levelled metric cloud with known doubt, and from marks in photos to planes."""
