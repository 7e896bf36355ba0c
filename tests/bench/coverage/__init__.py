"""How often each interval holds the truth, by enumeration of everything that can be observed."""
