"""How passwords are hashed."""

from django.contrib.auth.hashers import Argon2PasswordHasher


class Argon2(Argon2PasswordHasher):
    """Argon2id above the OWASP minimum (Password Storage Cheat Sheet: 19 MiB, 2 passes, 1 lane) and below
    Django's 100 MiB and 8 lanes, with which a few sign-ins at once fill a small machine.
    """

    time_cost = 3
    memory_cost = 64 * 1024  # KiB
    parallelism = 1
