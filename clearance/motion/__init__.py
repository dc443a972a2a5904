"""How bodies move against each other, and the certified minimum over that motion."""
