"""From the wanted part to the green part, and back to what will come out of the furnace."""
