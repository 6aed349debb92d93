"""Show answers: numbers in words, sentences, text tables, charts, CSV and JSON. Nothing is estimated here."""
