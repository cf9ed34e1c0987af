"""What was found when a cell was opened: entries, photographs, samples, sections, custody, cautions."""
