"""One file a step, in order of its number; a step that was released is never edited."""
