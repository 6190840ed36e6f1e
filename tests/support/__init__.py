"""What tests share: fixtures, doubles, recordings of terminals and made-up journals."""
