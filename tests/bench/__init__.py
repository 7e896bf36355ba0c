"""Studies and benchmarks: run by `make coverage-study` and `make bench`, never by pytest."""
