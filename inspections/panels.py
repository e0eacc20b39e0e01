"""What this app shows on pages of the apps below it, and its entries in the masthead."""
