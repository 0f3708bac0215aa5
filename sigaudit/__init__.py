"""sigaudit: what a monitoring station's receivers really heard, account by account."""

__version__ = "0.1.0"
__all__ = ["__version__"]
