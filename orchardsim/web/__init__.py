"""The page to plan on: a server for one folder, on this machine only."""

from __future__ import annotations
