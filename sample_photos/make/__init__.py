"""How the sample photographs are made: shapes, finishes, lights, one spectral rendering a scene, then cameras."""
