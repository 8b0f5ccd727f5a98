"""Blender's graphics module, loaded when something is first drawn: it needs a window.

Its published types say of most functions that they return nothing, so it is taken as it is.
"""

from __future__ import annotations

from typing import Any


def graphics() -> Any:
    """Return Blender's module ``gpu``."""
    import gpu

    return gpu


def batch_for(shader: Any, kind: str, content: dict[str, Any], **options: Any) -> Any:
    """Return points, colours and the like as a batch that a shader draws."""
    from gpu_extras.batch import batch_for_shader

    make: Any = batch_for_shader
    return make(shader, kind, content, **options)
