"""The closed vocabularies, a sentence for each code.

A member's value is the code as it stands in files, in the store and in SQL; its
``meaning`` is the sentence that the data dictionary prints.
"""

from enum import Enum


class Code(Enum):
    """Base of the vocabularies: each member is ``(code, meaning)``."""

    meaning: str

    def __new__(cls, value: str, meaning: str) -> "Code":
        """Keep the code as the value and the sentence beside it."""
        member = object.__new__(cls)
        member._value_ = value
        member.meaning = meaning
        return member


class Limb(Code):
    """Where the catheter lies."""

    UPPER = "upper", "Arm or shoulder."
    LOWER = "lower", "Leg or foot, including lumbar plexus catheters."
    TRUNK = "trunk", "Chest or abdominal wall."


class SurgeonType(Code):
    """The kind of surgery that the surgeon who operated does."""

    SPORTS = "sports", "Sports surgery, such as ligament or shoulder repair."
    TRAUMA = "trauma", "Surgery for injuries, such as fracture fixation."
    FOOT_ANKLE = "foot_ankle", "Foot and ankle surgery."
    HAND = "hand", "Hand and wrist surgery."
    LIMB_RECONSTRUCTION = "limb_reconstruction", "Lengthening and correction of limbs."
    TUMOUR = "tumour", "Surgery for bone and soft-tissue tumours."
    PLASTIC = "plastic", "Plastic and reconstructive surgery."
    GENERAL = "general", "General surgery."
    OTHER = "other", "Any other kind of surgery."


class NerveTarget(Code):
    """The nerve, plexus or plane beside which the catheter lies."""

    INTERSCALENE = "interscalene", "Brachial plexus, interscalene."
    SUPRACLAVICULAR = "supraclavicular", "Brachial plexus, supraclavicular."
    INFRACLAVICULAR = "infraclavicular", "Brachial plexus, infraclavicular."
    AXILLARY = "axillary", "Brachial plexus, axillary."
    FEMORAL = "femoral", "Femoral nerve."
    ADDUCTOR_CANAL = "adductor_canal", "Saphenous nerve in the adductor canal."
    FASCIA_ILIACA = "fascia_iliaca", "Fascia iliaca plane."
    SCIATIC_SUBGLUTEAL = "sciatic_subgluteal", "Sciatic nerve below the gluteal fold."
    SCIATIC_POPLITEAL = "sciatic_popliteal", "Sciatic nerve in the popliteal fossa."
    LUMBAR_PLEXUS = "lumbar_plexus", "Lumbar plexus."
    TRUNK_WALL = "trunk_wall", "A plane of the chest or abdominal wall, or paravertebral."
    OTHER = "other", "Any other target; its limb is not known."


# The limb of each nerve target; `other` belongs to none.
LIMB_OF_NERVE: dict[NerveTarget, Limb | None] = {
    NerveTarget.INTERSCALENE: Limb.UPPER,
    NerveTarget.SUPRACLAVICULAR: Limb.UPPER,
    NerveTarget.INFRACLAVICULAR: Limb.UPPER,
    NerveTarget.AXILLARY: Limb.UPPER,
    NerveTarget.FEMORAL: Limb.LOWER,
    NerveTarget.ADDUCTOR_CANAL: Limb.LOWER,
    NerveTarget.FASCIA_ILIACA: Limb.LOWER,
    NerveTarget.SCIATIC_SUBGLUTEAL: Limb.LOWER,
    NerveTarget.SCIATIC_POPLITEAL: Limb.LOWER,
    NerveTarget.LUMBAR_PLEXUS: Limb.LOWER,
    NerveTarget.TRUNK_WALL: Limb.TRUNK,
    NerveTarget.OTHER: None,
}


class PlacedBy(Code):
    """Who placed the catheter."""

    CONSULTANT = "consultant", "A consultant (attending) anaesthetist."
    FELLOW = "fellow", "A fellow."
    TRAINEE = "trainee", "A trainee."
    OTHER = "other", "Anybody else."


class Drug(Code):
    """The local anaesthetic in the pump."""

    ROPIVACAINE = "ropivacaine", "Ropivacaine."
    BUPIVACAINE = "bupivacaine", "Bupivacaine."
    LEVOBUPIVACAINE = "levobupivacaine", "Levobupivacaine."
    LIDOCAINE = "lidocaine", "Lidocaine."


class RemovalTimeSource(Code):
    """Where the removal time comes from."""

    FAMILY_RECORD = "family_record", "The family wrote the time down."
    CALL_ESTIMATE = "call_estimate", "Estimated during a telephone call."
    CLINICIAN = "clinician", "Recorded by a clinician."


class RemovalReason(Code):
    """Why the catheter came out."""

    COMPLETED = "completed", "The planned course was over."
    DISLODGED = "dislodged", "It came out by itself or was pulled out."
    LEAKAGE = "leakage", "Taken out because of large leakage."
    DRESSING_FAILURE = "dressing_failure", "The skin entry was uncovered or soiled."
    INFECTION_SIGNS = "infection_signs", "Redness, swelling or other signs of infection."
    TOXICITY_SYMPTOMS = "toxicity_symptoms", "Symptoms of possible systemic toxicity."
    INADEQUATE_ANALGESIA = "inadequate_analgesia", "It did not relieve the pain."
    NUMBNESS_WEAKNESS = "numbness_weakness", "Unwanted numbness or weakness."
    PUMP_FAULT = "pump_fault", "The pump failed."
    IMAGING = "imaging", "It had to come out for imaging."
    FAMILY_REQUEST = "family_request", "The family asked for it."
    OTHER = "other", "Any other reason."


class RemovedBy(Code):
    """Who took the catheter out."""

    FAMILY = "family", "The family at home."
    CLINICIAN = "clinician", "A clinician."


class RemovalDifficulty(Code):
    """Trouble while the catheter was taken out."""

    NONE = "none", "It came out easily."
    RESISTANCE = "resistance", "It resisted a gentle pull."
    SHARP_PAIN = "sharp_pain", "Sharp pain while it was pulled."
    RETAINED_FRAGMENT = "retained_fragment", "A piece may have stayed in."


class PumpProblem(Code):
    """What went wrong with the pump; the main thing."""

    NONE = "none", "Nothing."
    EMPTIED_EARLY = "emptied_early", "It was empty before the planned end."
    RAN_ON = "ran_on", "It was still running after it should have been empty."
    DISCONNECTED = "disconnected", "It came apart from the catheter."
    LEAKED = "leaked", "It leaked."


class ContactKind(Code):
    """Which part of the course the contact belongs to."""

    COURSE = "course", "While the catheter is in place, or about its removal."
    FOLLOW_UP = "follow_up", "After the block should have worn off."


class Direction(Code):
    """Who started the contact."""

    SERVICE = "service", "The planned daily call by the service."
    FAMILY = "family", "The family called."


class Topic(Code):
    """What the contact was mainly about."""

    ROUTINE = "routine", "Nothing in particular."
    LEAKAGE = "leakage", "Fluid at the skin entry."
    DRESSING = "dressing", "The dressing."
    PAIN = "pain", "Pain."
    NUMBNESS_WEAKNESS = "numbness_weakness", "Numbness or weakness."
    TOXICITY_SYMPTOM = "toxicity_symptom", "A symptom of possible systemic toxicity."
    INFECTION_SIGN = "infection_sign", "A sign of infection."
    PUMP = "pump", "The pump."
    MEDICINE = "medicine", "Other medicines."
    REMOVAL = "removal", "Taking the catheter out."
    FALL = "fall", "A fall."
    OTHER = "other", "Anything else."


class Leakage(Code):
    """How much fluid was at the skin entry."""

    NONE = "none", "None."
    SMALL = "small", "Some; this is usual and does not count as leakage."
    LARGE = "large", "A large amount; this counts as leakage."


class Dressing(Code):
    """The state of the dressing."""

    INTACT = "intact", "Intact."
    REINFORCED = "reinforced", "Loose; the skin entry stayed covered."
    EXPOSED = "exposed", "The skin entry was uncovered or soiled."


class Outcome(Code):
    """What the contact led to; the furthest step."""

    REASSURED = "reassured", "Reassured."
    DRESSING_REINFORCED = "dressing_reinforced", "The dressing was reinforced."
    CLAMP_CLOSED = "clamp_closed", "The clamp was closed."
    CATHETER_REMOVED = "catheter_removed", "The catheter was taken out."
    ASKED_TO_ATTEND = "asked_to_attend", "The family was asked to come in."
    EMERGENCY_SERVICES = "emergency_services", "The emergency services were called."
    SENT_TO_SURGEON = "sent_to_surgeon", "Passed on to the surgical team."


class VisitKind(Code):
    """The kind of an unplanned visit."""

    EMERGENCY_DEPARTMENT = "emergency_department", "Emergency department."
    URGENT_CLINIC = "urgent_clinic", "Clinic at short notice."
    READMISSION = "readmission", "Admitted again."


class VisitRelation(Code):
    """What the visit was for."""

    CATHETER = "catheter", "The catheter or the pump."
    PAIN = "pain", "Pain."
    SURGERY = "surgery", "The operation itself."
    UNRELATED = "unrelated", "Something else."
    UNCERTAIN = "uncertain", "It cannot be told."


class EventKind(Code):
    """The kind of a serious event."""

    EMERGENCY_SYMPTOM = "emergency_symptom", "A symptom that is an emergency."
    TOXICITY_TREATED = "toxicity_treated", "Systemic toxicity that was treated."
    RETAINED_FRAGMENT = "retained_fragment", "A piece of the catheter stayed in."
    INFECTION_TREATED = "infection_treated", "An infection that was treated."
    READMISSION = "readmission", "Admitted again for the catheter, for pain, or it is uncertain."
    FALL_INJURY = "fall_injury", "A fall with an injury."
    LASTING_NERVE_SYMPTOM = "lasting_nerve_symptom", "Symptoms of a nerve that lasted."
    COMPARTMENT_WARNING = "compartment_warning", "Signs of a tight compartment or cast."


class ChangeKind(Code):
    """What an entry of the improvement log logs."""

    CHANGE = "change", "Something was changed in how things are done."
    BASELINE = "baseline", "It was decided that the charts take a new baseline."


class OwnerRole(Code):
    """The role of whoever owns an improvement action; never a name."""

    CHAIR = "chair", "Chair of the committee."
    SERVICE_LEAD = "service_lead", "Lead of the service."
    NURSE = "nurse", "Nurse of the service."
    ANAESTHETIST = "anaesthetist", "Anaesthetist."
    SURGEON = "surgeon", "Surgeon."
    PHARMACIST = "pharmacist", "Pharmacist."
    DATA_MANAGER = "data_manager", "Whoever keeps the records."
    OTHER = "other", "Anybody else."


class ActionState(Code):
    """How far an improvement action is."""

    OPEN = "open", "Not done yet."
    DONE = "done", "Done."
    DROPPED = "dropped", "Given up."
