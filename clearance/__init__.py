"""Certified clearance of a part in a scanned engine bay over the engine's rock."""
