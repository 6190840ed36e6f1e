"""How the built-in player performs a drill: when, along which pitch, in what voice."""
