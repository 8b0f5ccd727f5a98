"""Tables as files: cells, columns and what each of them means, declared once."""
