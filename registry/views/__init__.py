"""The logbook's pages. Views are thin: fetch what the user may see, let a form check, let an action write."""
