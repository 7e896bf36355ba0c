"""What Django's own checks of a new password leave out."""

from __future__ import annotations

from django.contrib.auth.models import AbstractBaseUser
from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError

# What everybody on the ward would try first (OWASP ASVS 5.0.0, 6.2.11).
WORDS_OF_THE_PLACE = frozenset(
    {"dwellbook", "logbook", "registry", "balloon", "balloonpump", "axillary", "femoral", "heartfailure"}
    | {"transplant", "hospital", "coordinator", "physician", "committee", "administrator"}
)
FEWEST_SIGNS = 5


def _repeated_part(text: str) -> str:
    """The shortest part that makes up the whole text when repeated."""
    length = (text + text).find(text, 1)
    return text[:length]


class StretchedPasswordValidator(CommonPasswordValidator):
    """Refuses a common word that was only made longer: repeated, or with figures and marks around it."""

    def validate(self, password: str, user: AbstractBaseUser | None = None) -> None:
        letters = "".join(char for char in password.casefold() if char.isalpha())
        parts = {_repeated_part(password.casefold()), _repeated_part(letters), ""} - {""}
        if parts & WORDS_OF_THE_PLACE or parts & self.passwords or len(set(password)) < FEWEST_SIGNS:
            raise ValidationError(
                "This is a common word made longer. Take several words that do not belong together.",
                code="password_stretched",
            )

    def get_help_text(self) -> str:
        """Shown beside the field."""
        return "Your password can’t be a common word that is repeated or has figures around it."
