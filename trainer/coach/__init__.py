"""What to practise: what is due, what is weak, the day's set, and what is getting better."""
