"""The nouns of Ringwright: frozen, typed values. No search, no printing."""
