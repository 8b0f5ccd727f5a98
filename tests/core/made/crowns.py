"""The demo crown, built once a process for each size that tests ask for."""

from __future__ import annotations

from functools import cache

from cuspwise.standalone_core.demo import crown

demo_crown = cache(crown.demo_crown)
