"""From a powder pattern to what the specimen is made of: phases, structure factors, profiles, fractions."""
