"""What if the engine, the transmission or the part stood elsewhere, and where could it stand."""
