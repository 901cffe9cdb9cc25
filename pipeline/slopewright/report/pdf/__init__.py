"""report.pdf: the pages that a person reads who was not there."""

from .document import report_pdf

__all__ = ["report_pdf"]
