"""The records of the shop, one frozen dataclass each; every one maps to the table of its name."""
