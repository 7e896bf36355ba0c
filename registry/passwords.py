"""How hard a new password is to guess for somebody who knows the place."""

from __future__ import annotations

import re

from django.contrib.auth.models import AbstractBaseUser
from django.core.exceptions import ValidationError

# What everybody on the ward would try first (OWASP ASVS 5.0.0, 6.2.11).
WORDS_OF_THE_PLACE = (
    *("dwellbook", "logbook", "registry", "balloon", "pump", "balloonpump", "axillary", "femoral"),
    *("heart", "failure", "heartfailure", "transplant", "hospital"),
    *("coordinator", "physician", "committee", "administrator"),
)
FEWEST_GUESSES = 10**10  # the highest grade of zxcvbn: Wheeler, USENIX Security 2016, "zxcvbn", section 5
SIGNS_GRADED = 72  # what zxcvbn takes; its time grows with the cube of the length


def _names(user: AbstractBaseUser | None) -> list[str]:
    """The words of the person's and the centre's names."""
    names = (getattr(user, name, None) for name in ("username", "first_name", "last_name", "centre"))
    return [word for name in names if name for word in re.split(r"[\W_]+", str(name)) if word]


def guesses(password: str, user: AbstractBaseUser | None = None) -> float:
    """How many tries a guesser needs about, with or without the signs between the words."""
    from zxcvbn import zxcvbn  # its lists of words are read when first needed

    known = [*WORDS_OF_THE_PLACE, *_names(user)]
    joined = re.sub(r"[\W_]", "", password)
    forms = {password[:SIGNS_GRADED], joined[:SIGNS_GRADED] or password[:SIGNS_GRADED]}
    return min(float(zxcvbn(form, known)["guesses"]) for form in forms)


class GuessablePasswordValidator:
    """Refuses what can be guessed: common or local words, names, rows of keys, repeats, dates."""

    def validate(self, password: str, user: AbstractBaseUser | None = None) -> None:
        """Raises ValidationError for a password that falls within the tries above."""
        if password and guesses(password, user) < FEWEST_GUESSES:
            raise ValidationError(
                "This is easy to guess. Take four words or more that do not belong together, none of them a "
                "name or a word of this place.",
                code="password_guessable",
            )

    def get_help_text(self) -> str:
        """Shown beside the field."""
        return "Best are four words or more that do not belong together, no names, no words of this place."
