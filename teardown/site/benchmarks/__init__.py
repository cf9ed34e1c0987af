"""How fast sections are measured, and what other libraries make of them."""
