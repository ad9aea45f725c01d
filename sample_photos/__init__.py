"""Sample photographs with known truth: spectral renderings, and the build file that uses them. Not part of the package."""
