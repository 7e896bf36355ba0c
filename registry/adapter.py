"""What the sign-in library asks this site."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class ClosedAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # untyped library
    """Accounts are made by the programme; nobody signs up."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """No."""
        return False
