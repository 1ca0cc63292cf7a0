"""Pictures of a part drawn without a screen, coloured by what was measured."""
