"""What the product is measured with: made-up books and plants, another solver, plants whose truth is known."""
