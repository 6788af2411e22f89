// Written by generate-constants.js from src/model/constants. Do not edit.
