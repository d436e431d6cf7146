"""What a family does in an emergency, in the same words wherever it is said."""

EMERGENCY = (
    "A fit, trouble breathing, blue or very pale, very drowsy or hard to wake: close the clamp,"
    " call the local emergency number, say that local anaesthetic is running."
)
CALL_NOW = (
    "Ringing ears, numb mouth, metal taste, dizziness, sudden agitation: close the clamp and"
    " call the service now."
)
WHO_DECIDES = "Follow your own service's instructions. Local policy and licensed clinicians decide."
FOR_FAMILIES = (EMERGENCY, CALL_NOW, WHO_DECIDES)
