"""Where compiled kernels are kept between two runs, and for which source they are good."""
