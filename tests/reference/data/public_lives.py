"""Public life data sets the reference tests share with the script that stores a general library's fits to them."""

# fmt: off
NIST_FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
BALL_BEARINGS = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88, 84.12,
    93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
]
ABSORBERS_FAILED = [6700, 9120, 12200, 13150, 14300, 17520, 20100, 20900, 22700, 26510, 27490]
ABSORBERS_RUNNING = [
    6950, 7820, 8790, 9660, 9820, 11310, 11690, 11850, 11880, 12140, 12870, 13330, 13470, 14040, 17540, 17890, 18450,
    18960, 18980, 19410, 20100, 20150, 20320, 23490, 27410, 27890, 28100,
]
# Weeks in remission of 21 children given 6-mercaptopurine and of 21 given a placebo, + = still in remission (Freireich
# et al., Blood 21 (1963); the two-sample example of many textbooks [from memory]).
REMISSION = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"
# Months at which 167 turbine parts were looked at, and how many were found cracked (Nelson 1982, p. 415; read in a
# statistics package's public manual).
CRACK_MONTHS, CRACKED = [6.12, 19.92, 29.64, 35.40, 39.72, 45.24, 52.32, 63.48], [5, 16, 12, 18, 18, 2, 6, 17]
# Hundreds of hours at which 432 turbine wheels were looked at once: cracked, not cracked (Nelson 1982, p. 409; read in
# the same manual).
WHEEL_HOURS = [4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46]
WHEELS_CRACKED, WHEELS_SOUND = [0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21], [39, 49, 31, 66, 25, 30, 33, 7, 12, 19, 15]
# Ages in months at which 97 men came to a retirement house and left it, + = alive (Hyde 1980; the R package boot's data
# set channing, read in a public copy).
CHANNING_MEN = (
    "782-909 1020-1128 856-969 915-957 863-983 906-1012 955-1055 943-1025 943-1043 837-945 966-1009 936-971 919-1033 "
    "852-869 1073-1139 925-1036 967-1085 806-943+ 969-1001+ 923-1060+ 865-1002+ 953-1031+ 871-945+ 982-1006+ 883-959+ "
    "817-843+ 875-1012+ 821-956+ 936-1073+ 971-1107+ 830-940+ 885-911+ 894-1031+ 893-996+ 866-895+ 878-1015+ 820-957+ "
    "1007-1043+ 879-1016+ 956-1093+ 854-989 890-1027+ 1041-1044+ 978-1005+ 836-973+ 938-1064+ 886-1023+ 876-1013+ "
    "955-977+ 823-960+ 960-1047+ 843-943+ 856-951+ 847-984+ 1027-1058+ 988-1045+ 953-953+ 978-1018+ 981-1118+ "
    "926-970+ 1036-1070+ 1016-1153+ 969-1106+ 900-936+ 898-906+ 846-866+ 964-1029 984-1053 1046-1080 871-872 847-893 "
    "962-966+ 853-894 967-985 1063-1094 856-927 865-948 1051-1059 1010-1012 878-911 1021-1094 959-972+ 921-993 836-876 "
    "919-993 751-777 906-966 835-907 946-1031 759-781 909-914+ 962-998 984-1022 891-932 835-898 1039-1060 1010-1044"
)
# fmt: on


def split_marks(times):
    """Return times and whether each ended, of a line in which + marks those that went on."""
    words = times.split()
    return [float(word.rstrip("+")) for word in words], [not word.endswith("+") for word in words]


def channing_men():
    """Return entry ages, leaving ages and whether each died, months; two who left at the age they came are dropped."""
    came, went = zip(*(man.split("-") for man in CHANNING_MEN.split()), strict=True)
    leave, died = split_marks(" ".join(went))
    lives = [life for life in zip(map(float, came), leave, died, strict=True) if life[1] > life[0]]
    return tuple(list(column) for column in zip(*lives, strict=True))
