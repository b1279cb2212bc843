"""What the shop prints, drawn in black on white."""
