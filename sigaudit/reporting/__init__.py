"""From a judged run in the store to pages, sheets and mail. Judges nothing."""
