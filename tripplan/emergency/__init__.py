"""Facts and checks for the worst moment: whom to call, where care is, what to say."""
