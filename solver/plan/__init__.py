"""What a machine becomes for its builder: layers, order of building, parts, cautions."""
