"""The one append-only chain: who did what, when and why; and the guards that hold it."""
