"""Tables in files, whatever they hold: read with limits, headings understood, columns guessed, shown and confirmed."""
