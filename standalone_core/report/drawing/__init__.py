"""What is drawn: colours, legends, pictures, plots."""
