"""What each page of the review shows, as frozen dataclasses: built here, set in type by the templates."""
