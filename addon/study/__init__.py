"""The study of a scene: written, kept, shown."""
