"""What heat does to the part: how much its material grows, and the clearance over all of that growth."""
