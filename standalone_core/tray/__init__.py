"""A tray: many crowns, each against a design of its own or shared, checked at once."""
