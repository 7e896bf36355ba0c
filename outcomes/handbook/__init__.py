"""The handbook's generated pages: the estimators and the measures, described from their own code."""
