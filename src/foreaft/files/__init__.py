"""Reading and writing what people edit."""
