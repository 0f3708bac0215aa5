"""The program's version, where every room may read it."""

VERSION = "0.1.0"
