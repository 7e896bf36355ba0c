"""A de-identified file of runs for analysis: what may leave the programme, and only then."""

from outcomes.extract.build import Extract, TooFewAlikeError, build_extract

__all__ = ["Extract", "TooFewAlikeError", "build_extract"]
